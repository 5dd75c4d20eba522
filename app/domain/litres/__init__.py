"""The book of litres: double entry for every litre of the room, by its log alone."""

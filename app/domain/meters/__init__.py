"""The room's instruments as things: what each corrects, its certificates, its book."""

"""One module for each solvent; a new one is a new module."""

"""Part lots: the chain from resin to release, and what is wrong in it."""

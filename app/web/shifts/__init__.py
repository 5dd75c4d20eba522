"""The page on which a shift is handed over."""

"""Who acts, what each role may do, and how a secret is guarded against guessing."""

"""Looking at parts: what sits where, what is asked, which verdict follows, what parts last."""

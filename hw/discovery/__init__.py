"""Which ports are held by whom, and what is heard on them."""

"""How many spares, where and by when."""

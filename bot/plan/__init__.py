"""Planning a wave: reading the site list, and inventing larger ones for rehearsals."""

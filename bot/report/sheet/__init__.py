"""The printed sheet of a site: what is on it (``content``), and how it lies there (``paper``)."""

"""The scripts that run inside the server."""

"""The PostgreSQL that comes along, so that one command on a bare machine works."""

"""Verifying offline: records, exports, sealed months and folders of these, with nothing but the files and a key set."""

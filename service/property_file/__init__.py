"""The file of a property over years, for its customer, for an auditor, or for the public."""

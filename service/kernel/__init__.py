"""What every slice stands on; knows no slice."""

"""The claim: that no pesticide was used, worked out from all treatments known in a period."""

"""Work: what a change in the book leaves to be done a little later, once per subject."""

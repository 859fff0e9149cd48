"""Numbers with uncertainty; this room knows no lamp, no file and no plot."""

"""What a folder may hold and what its words mean: columns and keys, cells, faults, meters, verdicts, records."""

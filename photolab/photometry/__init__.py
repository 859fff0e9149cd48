"""What a reading says about light; no file, plot or notebook."""

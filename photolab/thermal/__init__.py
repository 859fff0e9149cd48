"""What warming up does to light and temperature; no file, plot or notebook."""

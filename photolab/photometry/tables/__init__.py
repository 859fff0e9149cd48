"""Published constants as CSV, each row with its source."""

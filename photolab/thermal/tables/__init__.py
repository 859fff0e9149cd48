"""Published emissivities as CSV, each row with its source."""

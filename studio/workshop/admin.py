"""The raw record, for looking only."""

"""A copy of the whole record, and a record from it."""

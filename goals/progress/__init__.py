"""What the numbers of a goal say: raw counts and definitions in, findings out; no framework, no database, no clock."""

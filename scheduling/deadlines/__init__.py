"""When what is due: facts and rules in, deadlines out; no framework, no database, no clock of its own."""

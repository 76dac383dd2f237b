"""A second implementation of the specification, written from its text; test_spec.py holds it against the command."""

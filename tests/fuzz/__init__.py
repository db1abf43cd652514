"""Damaged and absurd input: every file ends in a result or in an error that names what is wrong."""

"""The tables, declared reader by reader."""

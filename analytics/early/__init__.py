"""Early failures and what they were owed to."""

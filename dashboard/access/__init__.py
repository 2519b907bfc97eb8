"""Who may come in: people with passwords and roles, sessions that end, a gate for every route."""

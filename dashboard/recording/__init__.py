"""Record what the crew does at the flange, into the same tables as imported logs."""

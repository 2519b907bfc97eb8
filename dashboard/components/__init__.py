"""Parts that pages share."""

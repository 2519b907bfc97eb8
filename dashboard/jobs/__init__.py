"""Long work outside the request: asked for, told of, cancelled, and remembered over a restart."""

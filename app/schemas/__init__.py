"""Forms and JSON bodies, parsed and validated; JSON responses."""

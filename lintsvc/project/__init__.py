"""A repository of part files: what `lintsvc.toml` says of them, what is set aside, what was accepted, what is known."""

"""The commands, one module each; imported by `lintsvc.cli` only when named."""

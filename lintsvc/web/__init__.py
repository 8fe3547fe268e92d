"""The web process: API, page and events. It never imports readers, kernels or rules: it sends tasks by name."""

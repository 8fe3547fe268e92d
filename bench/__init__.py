"""Speed and memory, as ratios within one run. `make bench`, or `python -m bench NAME` for one of them."""

"""What goes out with an order, and what comes back: the packet, the 1:1 prints, the inspection sheets."""

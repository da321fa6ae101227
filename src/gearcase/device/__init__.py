"""Hardware: what a device's registers mean, the bus they are read over, and the simulated drive that serves them."""

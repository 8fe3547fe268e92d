"""Part to features. The only home of geometry kernels. Measurements are lazy and made once."""

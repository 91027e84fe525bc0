"""The objects of a simulated device, one module for each group of tables."""

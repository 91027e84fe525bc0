"""The objects of a simulated unit, one module for each group of tables."""

"""A review run: order, results, harvest, what need not run again."""

"""Start quantities, cost, price and date: the arithmetic of a quote, without a clock and without a database."""

"""What would bring an order nearer, one thing at a time and together."""

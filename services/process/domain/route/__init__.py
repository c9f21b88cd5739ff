"""The route cards: lines of operations, and what makes them longer."""

"""What becomes of a request and of a quote: accepted, followed, compared, decided, held against other rates."""

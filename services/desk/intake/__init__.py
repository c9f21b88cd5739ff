"""What did the customer mean? A table, a file or a letter becomes a draft of a request, with what was assumed and what is asked."""

"""What can be lost, how far a cost may go, and what a piece is worth when one is missing?"""

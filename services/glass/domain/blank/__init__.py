"""Which blank has an element, and which stock rows can give it?"""

"""How plates are cored: seats for smaller discs, the cutting plan, its pictures."""

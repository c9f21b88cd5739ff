"""Tools and bought parts: what the shop has, what is made or bought for a lens."""

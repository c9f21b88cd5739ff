"""What is bought for so many blanks: lots, slabs, several elements and several lenses together."""

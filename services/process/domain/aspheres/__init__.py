"""How is an aspheric face made and measured, what is bought for it, and when is it no more than a sphere?"""

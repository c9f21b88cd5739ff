"""When is it done?"""

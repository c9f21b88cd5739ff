"""What do operations, glass and bought parts cost when so many are started?"""

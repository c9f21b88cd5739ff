"""What every service stands on: settings, queue, database, keys, problems, pipeline, one box. No lens word in it."""

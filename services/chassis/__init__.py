"""What every service stands on: settings, queue, database, keys, problems, pipeline, one box. It knows no word of the trade."""

"""What the machine does on the way: heights of stops, the table, the travel, clamps."""

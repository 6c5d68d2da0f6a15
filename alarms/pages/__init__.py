"""What alarms add to the pages: their part of a trip's and of a unit's page, and acts on notices."""

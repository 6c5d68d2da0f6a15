"""The host's operators configure fleets here: what they change goes through services, what is a record stays one."""

"""What a service without any server of its own needs: receivers for its messages, and loops for its work."""

"""What the doctor sees. The only folder that knows Textual."""

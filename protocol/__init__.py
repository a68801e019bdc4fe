"""The rescue procedure as pure rules: same input, same output."""

"""The vocabulary: frozen values. A leaf; nothing here talks to the world."""

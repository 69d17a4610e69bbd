"""One person who was entered twice: the two entries become one, and can be taken apart again."""

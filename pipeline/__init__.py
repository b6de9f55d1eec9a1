"""From a picture or initials to a friendship-bracelet pattern that can be tied."""

"""The invented lab and its one-click sign-in; the only room that may shift the clock."""

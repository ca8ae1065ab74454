"""What the maker looks at: previews, shop sheets, labels."""

"""The examination screen in layers: what it holds, how it looks, what is read, where it goes, what writes."""

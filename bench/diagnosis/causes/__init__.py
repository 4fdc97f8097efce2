"""The causes, each as another prior on a few figures of the model."""

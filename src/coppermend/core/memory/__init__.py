"""What a memory test's error words say: words read from text, the board's memory map from its circuit, and which chip or line explains them."""

"""What a solder joint melts at when one alloy is fed to another: composition, thermodynamic model, doses, diagram."""

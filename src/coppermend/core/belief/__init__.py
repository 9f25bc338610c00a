"""What is probably broken: priors, likelihoods, exact posteriors over sites."""

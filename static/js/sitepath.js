// The path that a proxy serves the program below, as "/baths"; else empty. Addresses begin with it.
const sitePath = document.documentElement.dataset.at ?? "";

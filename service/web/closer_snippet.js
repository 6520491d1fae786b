// Draws each chart of the page from the specification beside it, in the page's own ink and paper.
// `ast` has expressions walked, not compiled: the content security policy lets no text become code.
const page = getComputedStyle(document.documentElement);
const colours = { "#26302e": "--ink", "#8a3b12": "--accent", "#faf7f0": "--paper" };
for (const place of document.querySelectorAll(".closer")) {
  let text = place.nextElementSibling.textContent;
  for (const [printed, name] of Object.entries(colours)) {
    text = text.replaceAll(printed, page.getPropertyValue(name).trim());
  }
  vegaEmbed(place, JSON.parse(text), {
    ast: true,
    actions: false,
    renderer: "canvas",
    defaultStyle: false,
    tooltip: { disableDefaultStyle: true },
  });
}

// Photos of a form are shown before they are sent, each with what it shows; marks are set by touch
// or by the arrow keys. Listens at the document, so that pages that arrive later work too.
(() => {
  const previewed = new WeakMap();

  // One row for each chosen file. Its label is sent as view_0, view_1 and so on.
  const preview = (input) => {
    const list = document.getElementById(input.dataset.previews);
    const pattern = document.getElementById("preview");
    for (const address of previewed.get(input) || []) URL.revokeObjectURL(address);
    const addresses = [];
    list.replaceChildren();
    [...input.files].slice(0, Number(input.dataset.most)).forEach((file, place) => {
      const row = pattern.content.cloneNode(true);
      const [image, name, choice] = [
        row.querySelector("img"), row.querySelector(".preview-name"), row.querySelector("select"),
      ];
      const address = URL.createObjectURL(file);
      addresses.push(address);
      image.alt = `Photo ${place + 1}, not stored yet`;
      image.addEventListener("error", () => image.closest(".photo-box").remove()); // HEIC, or no picture
      image.src = address;
      name.textContent = file.name;
      choice.name = `view_${place}`;
      list.append(row);
    });
    previewed.set(input, addresses);
    const most = Number(input.dataset.most);
    if (input.files.length > most) {
      input.setCustomValidity(`At most ${most} photos at once; these are ${input.files.length}.`);
      input.reportValidity();
    }
  };
  document.addEventListener("change", (event) => {
    if (event.target.matches("input[type=file][data-previews]")) preview(event.target);
  });

  // What was changed and not saved yet is not left behind unseen.
  const note = (event) => {
    if (event.target.closest("form[data-watch-changes]")) document.body.dataset.hasChanges = "";
  };
  document.addEventListener("change", note);
  document.addEventListener("input", note);

  // Marks: the place is sent in percent, so that it holds however large the photo stands here.
  const STAGE = ".photo-stage input[type=image]";
  const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  let at = [50, 50];
  const show = () => {
    const cross = document.querySelector(".cross");
    cross.removeAttribute("hidden");
    cross.setAttribute("transform", `translate(${at[0]} ${at[1]})`);
    document.getElementById("cross-words").textContent = `${at[0]} percent across, ${at[1]} percent down`;
  };
  document.addEventListener("keydown", (event) => {
    const step = STEPS[event.key];
    if (!step || !event.target.matches(STAGE)) return;
    event.preventDefault();
    const size = event.shiftKey ? 1 : 5;
    at = at.map((value, axis) => Math.min(100, Math.max(0, value + size * step[axis])));
    show();
  });
  document.addEventListener("focusin", (event) => {
    if (event.target.matches(STAGE) && event.target.matches(":focus-visible")) show();
  });
  document.addEventListener("click", (event) => {
    if (!event.target.matches(STAGE)) return;
    const box = event.target.getBoundingClientRect();
    const isTouch = event.detail > 0;
    const { x_percent: across, y_percent: down } = event.target.form.elements;
    across.value = isTouch ? (100 * (event.clientX - box.left)) / box.width : at[0];
    down.value = isTouch ? (100 * (event.clientY - box.top)) / box.height : at[1];
  });
  document.addEventListener("htmx:after:swap", () => { at = [50, 50]; });
})();

// A file that is larger than what is accepted is refused here, before it is sent.
for (const input of document.querySelectorAll("input[type=file][data-most-mb]")) {
  input.addEventListener("change", () => {
    const most = Number(input.dataset.mostMb);
    const isTooLarge = [...input.files].some((file) => file.size > most * 1024 * 1024);
    input.setCustomValidity(isTooLarge ? `This file is larger than ${most} MB, the most that is accepted.` : "");
    input.reportValidity();
  });
}

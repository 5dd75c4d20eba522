// A file that is larger than what is accepted is refused here, before it is sent.
document.addEventListener("change", (event) => {
  const input = event.target;
  if (!input.matches("input[type=file][data-most-mb]")) return;
  const most = Number(input.dataset.mostMb);
  const isTooLarge = [...input.files].some((file) => file.size > most * 1024 * 1024);
  input.setCustomValidity(isTooLarge ? `This file is larger than ${most} MB, the most that is accepted.` : "");
  input.reportValidity();
});

/** The one button of the printed page. */
document.getElementById("print")?.addEventListener("click", () => print());

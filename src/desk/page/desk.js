// Placeholder: shows that the server answers.
const song = await (await fetch("/api/song")).json();
document.querySelector("#song").textContent = `${song.title}: ${song.bars.length} bars`;

startTables();
// For those who like a console: steadydraw.ask({mode: 0, fan: 2, intake: 27, ambient: 27}) answers in W, degC and h.
window.steadydraw = startExplorer();

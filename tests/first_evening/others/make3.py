"""Makes the logs of ten more crews in this folder, as in make.py: a shore in gon (ods with titles, "kl. 9.07"), trees in percent below a merged
title with a hidden row and totals, a road in US survey feet with degrees-minutes-seconds (UTF-16), a slope with the circles Hz and V (line ends of
one carriage return), signs whose log names kinds, a free circle with sights from base to base, seals joined by the time (stands visited twice),
nests from the only base, a sheet for each base, plots by the names of files; and the truth that they were made from.

    pip install pyproj==3.7.2 openpyxl==3.1.5 odfpy==1.4.1 pygeomag==1.1.0 && python make3.py

Places by pyproj's Geod, convergence by PROJ, declinations of WMM2025 by pygeomag. Invented places, crews and values.
"""
import math, os, json, random
from pyproj import Transformer, Proj
import openpyxl
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableRow, TableCell
from odf.text import P
import datetime as dt
from drawn import *
R.seed(23)
def shot(b,q,eye=1.5,rod=0.0):
    az,_,s=G.inv(b[1],b[0],q[1],q[0]); dh=q[2]+rod-b[2]-eye
    return math.hypot(s,dh), az%360, math.degrees(math.atan2(dh,s)), s, dh
def around(b,n,dmin,dmax,a0,a1,h0,h1):
    out=[]
    for i in range(n):
        lo,la,_=G.fwd(b[1],b[0],R.uniform(a0,a1),R.uniform(dmin,dmax)); out.append((la,lo,b[2]+R.uniform(h0,h1)))
    return out
def grid(epsg,geo=4258):
    tr=Transformer.from_crs(geo,epsg,always_xy=True); pr=Proj(epsg)
    def en(b): return tr.transform(b[1],b[0])
    def conv(b): return pr.get_factors(b[1],b[0]).meridian_convergence
    return en,conv
def c(x,n=2): return f'{x:.{n}f}'.replace('.',',')
def th(x,n=2): return f'{x:,.{n}f}'.replace(',','#').replace('.',',').replace('#','.')
truth={}
def ods(path,sheets):
    doc=OpenDocumentSpreadsheet()
    for name,rows in sheets:
        t=Table(name=name)
        for row in rows:
            r=TableRow()
            for v in row:
                if v is None or v=='': r.addElement(TableCell()); continue
                if isinstance(v,(int,float)): cell=TableCell(valuetype='float',value=str(v)); cell.addElement(P(text=c(v)))
                else: cell=TableCell(valuetype='string'); cell.addElement(P(text=str(v)))
                r.addElement(cell)
            t.addElement(r)
        doc.spreadsheet.addElement(t)
    doc.save(path)

# dk: shoreline, ods, gon, DVR90
p=d('dk'); en,conv=grid(25832); B={'F1':(56.5011,8.1203,4.2),'F2':(56.5023,8.1215,3.8)}; t={}; rows=[]
for bn,b in B.items():
    for q in around(b,9,25,180,200,330,-3,2):
        n=len(t)+1; t[str(n)]=q; eye=1.48 if bn=='F1' else 1.55; rod=2.0
        sd,az,inc,hd,dh=shot(b,q,eye,rod); g=((az-conv(b))%360)/.9
        rows.append([n,bn,c(g,3),c((90-inc)/.9,3),c(sd,2),c(eye,2),c(rod,2),R.choice(['klitfod','skræntkant','vandlinje','høfde']),'%d. maj 2026'%(14+n//10),'kl. %d.%02d'%(9+n//6,n*7%60),R.choice(['','blød bund','ved høfde 4'])])
ods(p+'Opmåling Ferring strand.ods',[('Fikspunkter',[['Opmåling af klitfod, Ferring'],['Koordinatsystem: ETRS89 / UTM zone 32, DVR90'],[],['Punkt','Øst','Nord','Kote']]+[[k,round(en(v)[0],2),round(en(v)[1],2),v[2]] for k,v in B.items()]),
 ('Målinger',[['Målebog'],['Observatør: hold 2'],[],['Nr.','Opstilling','Retning (gon)','Zenit (gon)','Skrå afst. (m)','Instr. højde','Prismehøjde','Type','Dato','Kl.','Bemærkninger']]+rows+[[],['I alt',len(rows)]])])
truth['dk']=t
# no: wide trees, percent slope, no bases, xlsx, hidden rows, merged title
p=d('no2'); t={}; wb=openpyxl.Workbook(); ws=wb.active; ws.title='Flate 12'
ws.merge_cells('A1:I1'); ws['A1']='Høydemåling Brannlia, flate 12'; ws.append(['Dato:','14.05.2026','','Målt av','lag 3'])
ws.append([]); ws.append(['Tre','Treslag','BHD (mm)','Avst. (m)','Sikt topp (%)','Sikt rot (%)','Kronehøyde (%)','Merknad'])
for i in range(1,15):
    D=round(R.uniform(12,25),1); H=R.uniform(9,24); e=1.6+R.uniform(-1.5,1.5)
    top=round((H-e)/D*100); rot=round(-e/D*100); kr=round((H*.4-e)/D*100)
    t[str(i)]=(top-rot)/100*D
    ws.append([i,R.choice(['gran','furu','bjørk']),R.randint(110,380),D,top,rot,kr if i%4 else None,R.choice(['','toppbrekk','skjev'])])
ws.append(['Sum',14]); ws.append(['Snitt','','=AVERAGE(C5:C18)'])
ws.row_dimensions[9].hidden=True
wb.save(p+'høyder flate 12.xlsx'); truth['no2']=t
# us: transport, state plane usft, utf-16 BOM, AM/PM two digit year
p=d('us3'); en,conv=grid(6584,6318); US=1200/3937; B={'CP101':(32.8011,-96.8203,150.0),'CP102':(32.8023,-96.8215,152.5)}; t={}; rows=[]
for bn,b in B.items():
    for q in around(b,8,30,150,0,360,-8,8):
        n=str(1001+len(t)); t[n]=q; eye=5.25*US; rod=6.0*US; sd,az,inc,hd,dh=shot(b,q,eye,rod); a=(az-conv(b))%360
        zd=90-inc; D=int(zd); M=int((zd-D)*60); S=round(((zd-D)*60-M)*60)
        if S==60: S=0; M+=1
        if M==60: M=0; D+=1
        AD=int(a); AM=int((a-AD)*60); AS=round(((a-AD)*60-AM)*60)
        if AS==60: AS=0; AM+=1
        if AM==60: AM=0; AD+=1
        h=10+len(t)//4
        rows.append([bn,n,f'{AD}-{AM:02d}-{AS:02d}',f'{D}-{M:02d}-{S:02d}',f'{sd/US:.2f}','5.25','6.00',R.choice(['SIGN','GUARDRAIL','INLET','CURB']),f'05/{6+len(t)//10:02d}/26 {(h-1)%12+1}:{len(t)*7%60:02d} {"AM" if h<12 else "PM"}',R.choice(['','bent post','18" RCP'])])
open(p+'control points.txt','w',encoding='utf-16').write('Pt No.\tNorthing\tEasting\tElev.\tDesc\r\n'+''.join(f'{k}\t{en(v)[1]/1:,.2f}\t{en(v)[0]:,.2f}\t{v[2]/US:.2f}\tMAG NAIL\r\n' for k,v in B.items()))
open(p+'sideshots.txt','w',encoding='utf-16').write('Occ Pt\tPt No.\tAzimuth (grid)\tZenith\tSlope Dist\tHI\tHT\tDesc\tDate/Time\tNotes\r\n'+''.join('\t'.join(r)+'\r\n' for r in rows))
truth['us3']=t
# se: SWEREF99 TM, gon, CR line ends, cp1252
p=d('se'); en,conv=grid(3006); B={'100':(60.6011,15.5203,182.0),'101':(60.6023,15.5225,184.4)}; t={}; rows=[]
for bn,b in B.items():
    for q in around(b,9,20,200,0,360,-12,10):
        n='S%d'%(len(t)+1); t[n]=q; sd,az,inc,hd,dh=shot(b,q,1.55,1.3)
        rows.append([bn,n,c(((az-conv(b))%360)/.9,4),c((90-inc)/.9,4),c(sd,3),'1,550','1,300',R.choice(['släntfot','släntkrön','dike','block']),'2026-05-14',f'{9+len(t)//6:02d}:{len(t)*7%60:02d}:{R.randint(0,59):02d}'])
open(p+'stationer.txt','w',encoding='cp1252',newline='').write('Punkt\tN (SWEREF 99 TM)\tE (SWEREF 99 TM)\tHöjd (RH 2000)\r'+''.join(f'{k}\t{c(en(v)[1],3)}\t{c(en(v)[0],3)}\t{c(v[2],3)}\r' for k,v in B.items()))
open(p+'inmätning.txt','w',encoding='cp1252',newline='').write('Station\tPunkt\tHz (gon)\tV (gon)\tLutande längd (m)\tInstrumenthöjd\tSignalhöjd\tKod\tDatum\tTid\r'+''.join('\t'.join(r)+'\r' for r in rows))
truth['se']=t
# pl: EPSG:2178, northing first, cp1250
p=d('pl3'); en,conv=grid(2178); B={'st1':(52.1011,21.0203,105.0),'st2':(52.1023,21.0225,107.4)}; t={}; rows=[]
for bn,b in B.items():
    for q in around(b,8,20,90,0,360,-3,12):
        n=str(len(t)+1); t[n]=q; sd,az,inc,hd,dh=shot(b,q,1.5)
        rows.append(f"{n};{bn};{c(sd,2)};{c((az-decl(b,2026.36))%360,1)};{c(inc,1)};{R.choice(['dąb','świerk','słup','znak'])};{R.randint(10,28)}.05.2026 r.;godz. {9+len(t)//6}:{len(t)*7%60:02d};{R.choice(['','złamany','przy drodze'])}")
open(p+'punkty osnowy.csv','w',encoding='cp1250').write('Nr pkt;X (północ);Y (wschód);Rzędna;Układ\n'+''.join(f'{k};{c(en(v)[1])};{c(en(v)[0])};{c(v[2])};PL-2000 strefa 7\n' for k,v in B.items()))
open(p+'dziennik pomiaru.csv','w',encoding='cp1250').write('Lp.;Stanowisko;Odległość [m];Azymut magn. [°];Kąt nachylenia [°];Obiekt;Data;Godzina;Uwagi\n'+'\n'.join(rows)+'\n')
truth['pl3']=t
# it: free circle with a backsight, zenith, csv ;
p=d('it2'); en,conv=grid(6707,6706); B={'ST1':(45.9011,11.1203,412.0),'ST2':(45.9023,11.1225,415.5)}; t={}; rows=[]
for (bn,b),(on,o),turn in zip(B.items(),list(B.items())[::-1],(37.2,211.7)):
    sd,az,inc,hd,dh=shot(b,(o[0],o[1],o[2]),1.5,1.7)
    rows.append(f"{bn};{on};{c((az+turn)%360/.9,4)};{c((90-inc)/.9,4)};{c(sd,3)};1,50;1,70;orientamento;")
    for q in around(b,7,20,150,0,360,-12,20):
        n=str(len(t)+1); t[n]=q; sd,az,inc,hd,dh=shot(b,q,1.5,1.7)
        rows.append(f"{bn};{n};{c((az+turn)%360/.9,4)};{c((90-inc)/.9,4)};{c(sd,3)};1,50;1,70;dettaglio;{R.choice(['ciglio','piede','masso'])}")
open(p+'stazioni.csv','w',encoding='utf-8').write('Stazione;Est;Nord;Quota\n'+''.join(f'{k};{c(en(v)[0],3)};{c(en(v)[1],3)};{c(v[2],3)}\n' for k,v in B.items()))
open(p+'libretto.csv','w',encoding='utf-8').write('Stazione;Punto;Lettura orizz. (gon);Zenit (gon);Dist. incl.;h strum.;h prisma;Tipo;Note\n'+'\n'.join(rows)+'\n')
truth['it2']=t
# uk: two visits a day of one stand, joined by time; lat/lon with OS accuracy
p=d('uk'); t={}; rows=[]; vis=[('Hide',(54.6011,-3.4203,12.0),'08:55','10:20'),('Jetty',(54.6023,-3.4225,9.5),'10:40','12:05'),('Hide',(54.60112,-3.42028,12.0),'14:00','15:30'),('Jetty',(54.60231,-3.42248,9.5),'15:50','17:10')]
bl='stand,arrived,left,lat,long,height (ellipsoidal m),GPS acc (m)\n'
for bn,b,s,e in vis:
    bl+=f'{bn},13/05/2026 {s},13/05/2026 {e},{b[0]:.7f},{b[1]:.7f},{b[2]:.1f},0.6\n'; h,m=map(int,s.split(':'))
    for k,q in enumerate(around(b,5,30,200,0,360,-8,3)):
        n='seal %d'%(len(t)+1); t[n]=q; sd,az,inc,hd,dh=shot(b,q,1.4); mm=h*60+m+4+k*13
        rows.append(f'{n},13/05/2026 {mm//60:02d}:{mm%60:02d},{sd:.1f},{(az-decl(b,2026.36))%360:.1f},{inc:.1f},{R.choice(["pup","cow","bull"])},{R.choice(["","hauled out","asleep"])}')
open(p+'stands.csv','w').write(bl); open(p+'sightings.csv','w').write('animal,when,range m,compass bearing,tilt,kind,notes\n'+'\n'.join(rows)+'\n'); truth['uk']=t
# es: one base only, shots name no base
p=d('es3'); b=(36.7011,-4.4203,52.0); t={}; rows=[]
for q in around(b,12,20,160,0,360,-5,25):
    n='Nido %d'%(len(t)+1); t[n]=q; sd,az,inc,hd,dh=shot(b,q,1.5)
    rows.append(f"{n};{c(sd,1)};{c((az-decl(b,2026.36))%360,1)};{c(inc,1)};{R.choice(['gaviota','cormorán'])};13/05/26;{9+len(t)//6}:{len(t)*7%60:02d}")
open(p+'estacion.csv','w').write(f'Estación;Latitud;Longitud;Altura elipsoidal\nMirador;{c(b[0],7)};{c(b[1],7)};{c(b[2],1)}\n')
open(p+'nidos.csv','w').write('Nido;Distancia (m);Rumbo magnético;Ángulo vertical;Especie;Fecha;Hora\n'+'\n'.join(rows)+'\n'); truth['es3']=t
# de3: day sheets of shots, base in sheet names
p=d('de3'); en,conv=grid(25832); B={'Nordhang':(50.6011,9.4203,412.0),'Südhang':(50.5993,9.4225,405.5)}; t={}
wb=openpyxl.Workbook(); ws=wb.active; ws.title='Punkte'; ws.append(['Standpunkt','Rechtswert','Hochwert','Höhe ü. NHN'])
for k,v in B.items(): ws.append([k,round(en(v)[0],2),round(en(v)[1],2),v[2]])
for bn,b in B.items():
    ws=wb.create_sheet(bn); ws.append(['Nr','Strecke [m]','Richtung (gitter) [gon]','Höhenwinkel [gon]','i [m]','Bemerkung'])
    for q in around(b,7,20,160,0,360,-15,25):
        n=str(len(t)+1); t[n]=q; sd,az,inc,hd,dh=shot(b,q,1.6); ws.append([int(n),round(sd,2),round(((az-conv(b))%360)/.9,3),round(inc/.9,3),1.6,R.choice(['','Kante','Fels'])])
wb.save(p+'Hangaufnahme.xlsx'); truth['de3']=t
# it2: tree heights in two rows (piede / cima) with a per-plot file names, no base
p=d('it3'); t={}
for plot in ('Area 3','Area 4'):
    rows=[]
    for i in range(1,7):
        D=round(R.uniform(12,25),1); H=R.uniform(9,24); e=1.6; top=round(math.degrees(math.atan((H-e)/D)),1); rot=round(math.degrees(math.atan(-e/D)),1)
        t[f'{plot}/{i}']=D*(math.tan(math.radians(top))-math.tan(math.radians(rot)))
        rows+= [f"{i};{R.choice(['faggio','abete'])};cima;{c(D,1)};{c(top,1)}",f"{i};;base;{c(D,1)};{c(rot,1)}"]
    open(p+plot+'.csv','w').write('Albero;Specie;Parte;Distanza orizz. (m);Angolo (°)\n'+'\n'.join(rows)+'\n')
truth['it3']=t
json.dump(truth,open('truth3.json','w'),indent=0)
